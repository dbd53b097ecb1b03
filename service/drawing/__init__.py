"""The one way to draw: numbers and words in, SVG text out, for pages, mails and files.

A drawing is placed in a page as it is: the class of a mark decides its look, so that the style
sheet of the pages decides for light, dark and paper. :func:`service.drawing.frame.as_file` makes it
a file of its own, which is also what is turned into the picture of a mail.

Every drawing has a title and a description, and the same numbers are in a table or in text beside
it; its labels are therefore hidden from screen readers. Colour is never the only sign: two
things also differ in shape, dash, hatch or place.
"""
