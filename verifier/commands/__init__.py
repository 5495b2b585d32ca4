"""One module for each command of `edgewright`: it reads the call, asks the workbench and shows what comes back."""
