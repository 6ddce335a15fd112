"""The sheet to print: music in staves or on the program's own grid, laid out on pages."""
