"""Who may read and ask what: API keys, people, and the links that they get."""
