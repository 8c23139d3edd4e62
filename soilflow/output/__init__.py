"""What is shown: pictures, printout, cautions."""
