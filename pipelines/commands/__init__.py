"""The commands, a module a subject. Thin: what was asked is read, the answer is shown."""
