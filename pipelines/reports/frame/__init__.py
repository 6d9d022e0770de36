"""What all pages share: the frame, tables, charts, workbooks, pages kept as data."""
