-- Keeps findings about rig $1 as such from changing until the end of the write.
SELECT id FROM rig WHERE id = $1 FOR SHARE;
