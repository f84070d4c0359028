-- Notes that key $1 was used on day $2.
UPDATE api_key SET last_used_on = $2::date WHERE id = $1 AND last_used_on IS DISTINCT FROM $2::date;
