"""Results as pages that open from disk, with a workbook beside each; and on the terminal. `all_reports` has the only
list of pages.
"""
