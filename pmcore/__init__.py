"""Preventive-maintenance scheduling and compliance analytics for clinical engineering."""
