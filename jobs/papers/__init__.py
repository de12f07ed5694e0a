"""Papers to print: tagged PDFs set by typst, with packaged fonts only."""
