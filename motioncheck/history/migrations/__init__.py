"""How older histories become new ones: an Alembic environment with one script a revision."""
