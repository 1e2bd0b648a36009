-- A contributor's current bundle makes room. $contributor; $state: superseded or withdrawn.
update bundles set state = $state where contributor = $contributor and state = 'current';
