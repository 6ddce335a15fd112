"""Letters for words of any kind, in any script."""

from hypothesis import strategies as st

#: All that can be written to a file. Hypothesis would take the same of its own accord, but makes a
#: table of what UTF-8 can say first, which takes some seconds in every process.
ANY = st.characters(exclude_categories=["Cs"])
