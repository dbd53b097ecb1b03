"""Request and response models: names carry their unit, and every field says what it means.

Out-models are made from records by ``from_...`` class methods and contain no NaN: an unknown value
is null. In-models reject unknown fields.
"""
