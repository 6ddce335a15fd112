"""Files as no program would write them: every kind that is read, damaged by chance.

``corpus`` has a folder of samples for each kind; an input that made the program stumble is added
there. ``damage`` changes a sample, ``kinds`` says what is then done with it and what may be raised:
words for a person (``UserError``), nothing else. The plain tests try a few hundred inputs; all of
them are tried by ``python -m tests.long fuzz``.
"""
