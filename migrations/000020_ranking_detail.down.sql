-- 000020_ranking_detail.down.sql
SET LOCAL lock_timeout = '5s';

DROP TABLE ranking_detail;
