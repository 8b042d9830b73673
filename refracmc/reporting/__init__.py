"""Tables, charts and the page of a run, all made from ``refracmc.reporting.tables.ReportData``."""
