"""Tables in and out: parts, opening stock, suppliers, customers and machines from CSV or XLSX and back."""
