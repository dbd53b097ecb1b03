"""What is due, and how the service is doing."""
