"""Papers: team sheets, plan document, line section, drill papers (typst)."""
