-- purpose: forget addresses from which a name has not signed in for long
-- grain:   name and address
-- params:  before
delete from doors where signed_in < $before;
