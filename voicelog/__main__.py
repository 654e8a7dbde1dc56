from voicelog.cli import main

main()
