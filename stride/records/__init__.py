"""Documents kept beside a clip: marks and analyses, versioned and readable by hand."""
