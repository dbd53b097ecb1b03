"""The evening run: weather and ledgers up to today, plans for tomorrow, and what is published.

Start with ``run_day.py``.
"""
