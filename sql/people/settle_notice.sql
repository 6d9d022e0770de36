-- purpose: note how the sending of a notice ended
-- grain:   notice x address
-- params:  notice, address, state
update notices set state = $state where notice = $notice and address = $address;
