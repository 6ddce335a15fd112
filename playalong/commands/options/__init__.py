"""Options that several commands share: how each group is typed, and what it stands for."""
