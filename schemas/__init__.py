"""What the data is: quantities, reasons for refusal, feeds and the shapes of answers. Imports nothing of ours."""
