"""Tools for agents: the operations of the service over the Model Context Protocol.

The room is an entrance like the API: it identifies who asks, calls one operation, and shows its
result in the API's own schemas, so that a field means the same wherever it is read. It never speaks
HTTP to the service itself. ``catalogue.py`` lists the tools, ``tool_server.py`` calls them,
``entrances.py`` has the two ways in: the standard streams of a command, and one address beside the
API, behind the same gate.

It needs the package ``mcp``, which the extra ``tools`` installs.
"""
