"""The typeface embedded in every card: Atkinson Hyperlegible Next, SIL Open Font License 1.1 (OFL.txt)."""
