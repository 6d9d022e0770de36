"""Whatever is read live becomes feed files in the inbox."""
