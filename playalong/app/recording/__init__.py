"""Playing along with a recording, and telling where its beats are."""
