-- purpose: which names have signed in well from which addresses, the newest last
-- grain:   name and address
-- params:  most
select name, place from (select * from doors order by signed_in desc limit $most) order by signed_in;
