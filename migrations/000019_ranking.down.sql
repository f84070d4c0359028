-- 000019_ranking.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE ranking;
