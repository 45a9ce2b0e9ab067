"""A bead pressed flat between decks: elastic-plastic sheet at large displacement, contact, friction."""
