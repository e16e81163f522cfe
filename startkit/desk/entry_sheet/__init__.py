"""The entry sheet: a job's stages as a workbook (XLSX), one tab a stage, for where no laptop goes."""
