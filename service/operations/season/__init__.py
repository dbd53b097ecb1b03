"""The season's tasks of a farm, reminders of them, and what was seen on visits."""
