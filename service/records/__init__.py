"""The data that the database stores and the operations work with, one module per subject.

Frozen records that know neither the database, the API nor the farm file.
"""
