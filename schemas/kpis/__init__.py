"""KPIs, each declared once: name, unit, description, kind, catalogue number, US form, rounding. `columns` has them in order."""
