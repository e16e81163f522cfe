"""The entry sheet: the stages of a job as an XLSX workbook, one tab a stage, for use off-line."""
