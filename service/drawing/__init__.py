"""The one way to draw: numbers and words in, SVG text out, for pages, mails and files.

A drawing stands in a page as it is: what a mark looks like is said by its class, so that the style
sheet of the pages decides for light, dark and paper. :func:`service.drawing.frame.as_file` makes it
a file of its own, which is also what is turned into the picture of a mail.

Every drawing has a title and a description, and the same numbers stand in a table or in text beside
it; its letters are therefore hidden from screen readers. Colour is never the only sign: what tells
two things apart is also shape, dash, hatch or place.
"""
