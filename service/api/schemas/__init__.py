"""What goes in and out over HTTP: names carry their unit, and every field says what it means.

Out-models are made from records by ``from_...`` class methods and hold no NaN: what is not known is
null. In-models refuse what they do not know.
"""
