"""The documentation site: written pages beside pages made from the docstrings, the plug-ins and the commands' help.

pip install ".[docs]" && sphinx-build -W -n docs site
"""

import sys
from pathlib import Path

import tapewright

sys.path.insert(0, str(Path(__file__).parent / "_extension"))

project = "tapewright"
release = version = tapewright.__version__
copyright = "tapewright contributors, MIT licence"

extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon", "made_pages"]
exclude_patterns = ["_extension"]

html_theme = "furo"
html_title = "tapewright"
html_show_sphinx = False
html_show_sourcelink = False

myst_heading_anchors = 3
toc_object_entries = False  # the modules of a page are its contents, not every name in them

autodoc_member_order = "bysource"
autodoc_typehints = "description"
autodoc_use_type_comments = False
autodoc_default_options = {"members": True, "show-inheritance": True}
napoleon_google_docstring = True
napoleon_numpy_docstring = False
napoleon_use_rtype = False

# Types that the docstrings' signatures name and that this site has no page for.
nitpick_ignore_regex = [
    (r"py:.*", r"(numpy|np|scipy|typing|collections|pathlib|concurrent|enum|dataclasses|importlib)\..*"),
    (r"py:.*", r"(io|sqlite3|unittest)\..*"),
    (r"py:.*", r"tapewright\..*\.(Code|Kind)"),  # type variables
    (r"py:.*", r"(NDArray|Array|Bits|Value|Made|Kind|Path|optional|Self|Callable|Iterator|Sequence|Any)"),
]
