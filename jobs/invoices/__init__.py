"""Invoices, credit notes and payments. Issued documents never change."""
