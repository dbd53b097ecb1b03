"""What leaves the service for people: mails, their charts and calendars, the calendar feed."""
