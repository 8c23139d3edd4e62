"""Problems with a known answer, set up and solved; tests and ``verification.py`` share them."""
