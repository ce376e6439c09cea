"""First drafts of outlines from a click or two, for people to correct and confirm."""
