"""When a parcel may travel and how to pack it. See docs/methods/windows.md."""
