"""What a script or a notebook calls, in one place: the names of ``import loomproof``, and what they show."""

from loomproof.api import pages as pages
