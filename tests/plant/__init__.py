"""The plant file in other shapes: as text that is written, as a workbook."""
