"""Files of the inbox into the store: the files waiting, each received and checked, problems of single files, late data."""
