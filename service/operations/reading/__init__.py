"""What is stored about farms and plans, read for people and programs."""
