"""Assessments: taken in the window, kept as results, graded anew, told in reports and tables."""
