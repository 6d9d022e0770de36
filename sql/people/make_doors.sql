-- purpose: from which addresses a name has signed in well, so that guesses of others there do not shut it out
-- grain:   name and address
-- units:   s since 1970 by the computer's clock
create table if not exists doors (name varchar, place varchar, signed_in double not null, primary key (name, place));
