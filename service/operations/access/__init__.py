"""Who may read and do what: API keys, people, and the links that they are sent."""
