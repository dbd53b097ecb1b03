"""What a farm can take away: tables of typed columns in the reader's language and units."""
