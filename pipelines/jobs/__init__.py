"""The work that flows, pages and commands order: plain functions over a site, no scheduler in sight."""
