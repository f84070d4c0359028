-- Sets whether tester $1 is trusted.
UPDATE tester SET trusted = $2 WHERE id = $1;
