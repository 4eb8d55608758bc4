"""Changes to instruments and flow tests: one function per use case, one transaction each."""
