"""Mail: evening plans, weekly summaries and bulletins, and the outbox that sends them."""
