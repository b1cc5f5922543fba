"""An order's facts on paper: CSV, XLSX and PDF, whole or the part of one supplier or vehicle."""
