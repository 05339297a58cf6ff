"""Body fit: bones of constant length seen by one camera."""
