-- Checks now what would else be checked at the commit that a dry run does not reach.
SET CONSTRAINTS ALL IMMEDIATE;
