"""The only package that imports prefect: what runs, after what, with retries on input and output only."""
