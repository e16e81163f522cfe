"""Names of the files that travel inside a record."""

RECORD, JOURNAL, CSV = "record.json", "journal.json", "entries.csv"
TRENDS, PICTURES = "trends", "pictures"
