"""The database room: SQLite or PostgreSQL behind the store ports.

Read in this order: ``engine`` (how a connection behaves), ``tables`` (what is stored), ``mapping``
(records to rows and back), ``bulk`` (many rows at once), one store file per port, ``session`` (the
unit of work that joins them) and ``migrate`` (how the schema gets to its present shape).
"""
