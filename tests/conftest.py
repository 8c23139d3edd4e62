"""Makes the modules beside this file importable from the tests in the folders below."""
