"""The colours of Okabe and Ito (2008), told apart by everyone, also with a colour vision deficiency [1]_.

A line style, a width or a word always says the same as the colour, since sheets are printed in black and white.

References
----------
.. [1] M. Okabe and K. Ito, "Color universal design: how to make figures and presentations that are friendly to
   colorblind people", University of Tokyo, 2008.
"""

BLUE = "#0072B2"
VERMILION = "#D55E00"
ORANGE = "#E69F00"
