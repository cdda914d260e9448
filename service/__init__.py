"""The outside: command line, pages, API, cases, labels. Holds no arithmetic of the trade."""
