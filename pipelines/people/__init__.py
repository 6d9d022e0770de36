"""Who may do what, and what was done: roles, sign-ins, the books of the served site."""
