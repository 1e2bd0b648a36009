-- Keeps what is known of a bundle. $parameters: all columns of `bundles`.
insert into bundles values (
    $checksum, $contributor, $number, $kind, $state, $from_year, $to_year, $threshold, $ticket_count, $noise_variance,
    $public_key, $manifest, $stored_at
);
