"""The report: one page that shows what was made and what was given up."""
