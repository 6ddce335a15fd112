"""What a teacher reads: one HTML file with plots, for the phone and for paper. No network."""
