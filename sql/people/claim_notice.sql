-- purpose: note that a notice is about to go out; nothing where that was noted before
-- grain:   notice x address
-- params:  notice, address, at, title
insert into notices values ($notice, $address, $at, $title, 'begun') on conflict do nothing;
