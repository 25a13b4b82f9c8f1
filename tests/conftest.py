"""Shared by all tests: a home of their own, so that no test reads or writes the user's folders."""
