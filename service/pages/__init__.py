"""Pages for people: plain forms and tables that need no JavaScript and nothing from outside."""
