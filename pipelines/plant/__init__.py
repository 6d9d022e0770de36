"""works.toml: what the works is, read into typed and checked objects."""
