"""What all pages share: the frame, tables, charts, workbooks, pages kept as data.

**Charts** are declared with Altair and compiled to Vega once, and then only given data; colours are the style sheet's
variables, so that one SVG serves light, dark and print.
"""
