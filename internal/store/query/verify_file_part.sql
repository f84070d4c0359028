-- $4 bytes from byte $3, counted from 1, of file $2 of snapshot $1.
SELECT substring(content FROM $3::integer FOR $4::integer) FROM snapshot_file WHERE snapshot = $1 AND name = $2;
