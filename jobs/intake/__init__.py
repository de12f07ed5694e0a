"""Taking in homes: by one form, by the API, or by a spreadsheet of thousands."""
