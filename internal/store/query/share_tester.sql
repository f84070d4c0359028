-- Keeps findings about tester $1 as such from changing until the end of the write.
SELECT id FROM tester WHERE id = $1 FOR SHARE;
