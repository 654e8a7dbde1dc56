"""The raw stuff of site talk: frames with {slots}, and what fills them. Written for the chatter bench alone.

A slot may hold slots of its own. Everything is lower-case words; a comma is a short pause.
"""


def _listed(text: str) -> tuple[str, ...]:
    """Entries that hold no comma, parted by commas."""
    return tuple(" ".join(entry.split()) for entry in text.split(","))


ORDINARY = (
    "can you pass me the {thing} when you are done with it",
    "is there any tea left in {place} or did {person} finish it",
    "i parked the van round the back of {place}",
    "{person} said the {thing} was making a funny noise again",
    "hold that a second while i move the {thing}",
    "we will have to come back {day} and finish off {place}",
    "no no leave it where it is, it is fine",
    "yes that is what i told {person} {day}",
    "mind your head on the {thing} there",
    "did you ever get paid for that job at {place}",
    "correct me if i am wrong but {person} was here {day}",
    "okay let me just check with {person} first",
    "the light in {place} has been off since {day}",
    "i would not trust that {thing} as far as i could throw it",
    "what is left to do in {place} then",
    "stand by the door would you and wait for {person}",
    "there is water coming through by the {thing} in {place}",
    "he has passed his test and he failed it twice before",
    "say again, i had my back to you",
    "that was a long day, {day}, i was shattered",
    "where did you put the {thing}, {person} is looking for it",
    "{opener} if {person} wants the {thing} moved {person} can move it",
    "{opener} i am not going up in {place} without the {thing}",
    "does {person} know we are switching things off {day}",
    "the {adjective} {thing} is mine and the {adjective} one belongs to {person}",
    "{person} left the {thing} in {place} again, it is {adjective}",
    "{opener} put the {thing} next to the {thing} and mind the {thing}",
    "when we have done {place} we can have a look at {place}, {closer}",
    "i rang {person} {day} and nobody picked up, {closer}",
    "somebody has painted over the {thing} in {place}, {closer}",
    "the radio in {place} is driving {person} mad, {closer}",
    "shall we get the {thing} in before it starts raining",
    "{opener} {person} will want to know why {place} smells of {smell}",
    "is that {smell} i can smell or is it the {thing}",
    "we are nearly out of {supply}, can you tell {person}",
    "i need more {supply} and a {adjective} {thing}",
    "you have got {smell} all over your sleeve, {closer}",
    "{person} and {person} are not speaking since {day}",
    "{opener} the whole of {place} wants ripping out, {closer}",
    "have you seen the state of the {thing}, {closer}",
    "lunch, {person} is getting the {food} in",
    "i could murder a {food} right now, {closer}",
    "two sugars for me and none for {person}, and a {food} if there is one",
    "careful, the {thing} is {adjective} and so is the floor",
    "{person} thinks {place} is haunted, {closer}",
    "turn that {thing} down a bit, i cannot hear myself think",
    "{opener} the door to {place} is locked and {person} has the key",
    "whose is this {adjective} {thing}",
    "you are standing on my {thing}",
    "the lift is out of order so it is the stairs, {closer}",
)
NUMERICAL = (
    "we had {number} of them delivered {day} and {number} were broken",
    "it cost {number} quid and i got {number} back from {person}",
    "{person} lives at number {number} just past the school",
    "it is about {number} metres from {place} to {place}",
    "call me at half past {small} or {number} minutes after",
    "they want {number} points in {place} and {number} upstairs",
    "my phone number ends in {digit} {digit} {digit} {digit}",
    "room {digit} {digit} {digit} on the {small} floor has no heating",
    "the match finished {digit} {digit} after extra time",
    "she was born in nineteen {number}",
    "turn to page {number}, paragraph {digit}",
    "give it {number} minutes and then try {number} more",
    "there were {number} people in {place} {day}",
    "i make it {digit} point {digit} miles from {place}",
    "the code for the gate is {digit} {digit} {digit} {digit} i think",
    "it was {number} degrees in {place} {day}",
    "{number} volts or {number} volts, i can never remember",
    "his {thing} is rated at {number} amps or so he says",
    "we are on circuit training {day} at {small}",
    "{digit} {digit} {digit}, no, {digit} {digit} {digit}, write it down",
    "{opener} {number} boxes of {supply} and only {number} lids",
    "the invoice says {number} but i counted {number}, {closer}",
    "bus number {digit} {digit} goes every {number} minutes",
    "{person} wants {number} for it and i said {number} tops",
    "it took us {number} hours last time and there were {small} of us",
    "channel {digit} is all static, try {digit}",
    "the postcode ends in {digit} {letter} {letter}, {closer}",
    "cut it at {number} and a half, no, call it {number}",
    "{number} by {number} and {number} deep",
    "my {thing} did {number} thousand miles before it packed up",
    "{small} of us, {small} {food}s, that is about {number} quid",
    "is it {number} or {number} steps up to {place}",
    "the fine was {number} plus {number} costs, {closer}",
    "seat {letter} {number}, row {letter}, {person} has the tickets",
    "i have got {number} percent battery left on my phone",
    "there is a {number} amp one in the van and a {number} amp one in {place}",
    "at {small} minutes past {small} {person} rings up and says {number} of them are missing",
)
SITE = (
    "did you try {circuit} yet or is it still off",
    "it was about {rough} last time i think, {closer}",
    "{opener} {circuit} never reads the same twice",
    "i would have said {rough} but do not write that down",
    "{person} reckons the {test} on {circuit} was {rough}",
    "what did we get for the {test} on the other board, something like {rough}",
    "is {circuit} the {adjective} one or is that {circuit}",
    "the {test} is always a bit high when the {thing} is running",
    "hang on, the probe slipped, i had {rough} there for a second",
    "it is going up and down, {rough}, now {rough}, wait",
    "no nothing yet, it says {rough} but that is not settled",
    "you told me {circuit} was dead, it is not dead, {closer}",
    "if the {test} comes out at {rough} we are here all night",
    "i have not done {circuit} because {person} needs the {thing}",
    "the meter wants new batteries, it is showing {rough} for everything",
    "remember that job at {place} where the {test} was {rough}",
    "should be {rough} in theory, {closer}",
    "the book says {rough}, the meter says what it likes",
    "who labelled this, {circuit} goes to {place} and {circuit} goes nowhere",
    "i think the neutral is borrowed from {circuit}, {closer}",
    "does the {test} come before the {test} or after",
    "leave {circuit} alone until {person} has saved his work",
    "switch {circuit} back on, {person} is sitting in the dark",
    "the trip went again when {person} plugged the {thing} in, {closer}",
    "that breaker is {adjective}, look at it, {closer}",
    "the earth on {circuit} is only finger tight",
    "somebody has put a {number} amp fuse where there should be {number}",
    "you read it out and i will tell you if i can see it",
    "i am on the wrong terminals, that was not {circuit} at all",
    "have we got {circuit} down as passed or not",
    "{opener} it said {rough} and then it jumped to {rough}",
    "what was it {person} got, {rough}, {rough}, one of those",
    "point something, i did not see it, do it again",
    "the leads are {adjective}, take a bit off for the leads",
    "{circuit}, that is the one in {place} with the {adjective} {thing} on it",
    "so far {number} of them are fine and {small} are rubbish",
    "watch your fingers, that side is still live as far as i know",
    "when i say on you put {circuit} on, not before",
    "the last fellow wrote {rough} for every single one of them",
    "i do not believe {rough}, nobody gets {rough} on a run that long",
    "half of {place} went off when he pressed the button",
    "if you look at the sheet from {day} it was {rough}",
    "they have run the {thing} and the {thing} off the same {small} way board",
    "ring me when you have finished {circuit} and i will come down",
    "tell {person} the fault is between {place} and {place}",
    "the clamp does not shut properly, it is {adjective}",
    "the tails are warm, i do not like that, {closer}",
    "is that milliamps or amps you are on, it makes a difference",
    "{opener} a thousand times too big, that is {rough}",
    "pass me the other meter, this one thinks {circuit} is {rough}",
)
ROUGH = (
    "about {number} {unit}",
    "{number} or {number} {unit}",
    "{number} something",
    "nought point {digit} or {digit}",
    "{digit} point {digit} and a bit",
    "well over {number} {unit}",
    "next to nothing",
    "{number} and falling",
    "point {digit}, point {digit}, something like that",
    "way under {number}",
    "double what it was, {number} or so",
    "{number} {unit} more or less",
    "under a hundred megs",
    "off the scale",
)
STORY = (
    "so {person} goes up into {place} with the {thing}, and {disaster}, {closer}",
    "there was this job at {place}, {number} years ago, and {disaster}",
    "{day} i was in {place} minding my own business when {disaster}",
    "you will like this, {person} buys a {adjective} {thing} and {disaster}",
    "he opens the cupboard in {place} and {disaster}, i am not making it up",
    "we were about {number} minutes from finishing when {disaster}",
    "{person} swears that {disaster}, but {person} tells it differently",
    "first {disaster}, then {disaster}, and all before {food}",
    "it was {adjective} in {place}, {person} had the {thing} in one hand, and {disaster}",
    "my first week, {number} of us on the job, and {disaster}",
)
DISASTER = (
    "the {thing} came down on {person}",
    "the lights went out all the way to {place}",
    "somebody had left the {thing} running since {day}",
    "{person} put a foot through the ceiling of {place}",
    "there was a {animal} asleep behind the {thing}",
    "the whole lot smelled of {smell}",
    "{number} people turned up who should not have been there",
    "the alarm went off for {number} minutes and nobody knew the code",
    "{person} said it was {rough} and walked off",
    "it turned out the {thing} was wired to {place}",
    "the {animal} had eaten the {supply}",
    "the boss rang up and asked for {number} more",
    "we found {number} quid in old coins under the {thing}",
    "{circuit} was feeding the house next door",
    "the paint on the {thing} had not dried",
    "a {animal} got into {place} and would not leave",
    "{person} fell asleep in {place} with the {thing} on",
    "the key broke off in the lock of {place}",
)
PROSE = (
    "{time} the {noun} {motion} {where}, and {clause}",
    "{clause}, for the {noun} had {past} {where} {time}",
    "nobody in {place} remembered {time}, but {clause}",
    "she {speech} that {clause}, and the {noun} {motion} {where}",
    "he {speech} nothing of the {adjective} {noun}, though {clause}",
    "it was {time} that {clause} and the {noun} was {past}",
    "there is a {noun} {where} which {person} {speech} was {past} by a {adjective} {animal}",
    "the {adjective} {noun} and the {adjective} {noun} {motion} {where} until {clause}",
    "if {clause} then the {noun} may yet be {past} {time}",
    "when {clause} they {motion} {where}, carrying a {noun} and a {noun}",
)
CLAUSE = (
    "the {noun} {motion} {where}",
    "{person} had {past} the {noun}",
    "the {animal} {motion} {where}",
    "every {noun} {where} was {adjective}",
    "the {noun} of {place} grew {adjective}",
    "rain {motion} {where}",
    "no {noun} could be {past}",
    "the {adjective} {noun} was {past} at last",
    "{number} years went by",
    "somebody {speech} the {noun} was {adjective}",
)
AROUND = (
    "was it {words} you said",
    "i think {words} was the one with {person} on it",
    "{person} reckons {words} or something like that",
    "last year {words} was fine, was it not",
    "hang on, {words}, no that is not right",
    "{words} is what it says on the door of {place}",
    "nothing to do with {words} at all",
    "{opener} {words}, that is what i heard, {closer}",
    "when i was an apprentice {words} meant something else",
    "do not put {words} on the sheet until {person} has looked",
    "why would you say {words} if {circuit} is off",
    "{person} wrote {words} on the {thing} in chalk",
    "somebody shouted {words} from {place}",
    "i never know what {words} is supposed to mean",
)
OUT_OF_ORDER = _listed("""
    point, ohms, seven, earth, milliamps, circuit, zed, live, neutral, amps, trip, ring, five, kitchen, after,
    because, window, never, carpet, sixty, under, less, pass, fail, half, main, volts, lead, nine, nought, gravel,
    should, leakage, board, other, phone, right, left, two, paper, limit, twenty, switch, between, hammer, test,
    over, megs, yellow, insulation, water, number, eight, rather, sockets, morning, code, double, forty, loop,
    slowly, read, bread, stop, gate, next, text, born, four, door, fine, nice, heaven, eleven, tree, free, wine,
    sick, sticks, late, great, plate, won, done, sum, zero, hero, home, loan, milk, mills
""")
SLOTS = {
    "place": _listed("""
        the kitchen, the hall, upstairs, the loft, the store, reception, the plant room, the yard, the boiler
        house, the back office, the car park, the garage, the canteen, the old wing, the vestry, the changing
        rooms, the cellar, the corridor, the gallery, the landing, the pub, the chapel, the school, the shop, the
        library, the workshop, next door, the shed, the surgery, the harbour
    """),
    "person": _listed("""
        the caretaker, my brother, the plumber, your mate, the tenant, the apprentice, the manager, the roofer,
        the landlord, my wife, your uncle, the painter, the vicar, the lad from {place}, the cook, old tom,
        margaret, the inspector, that woman from {place}, dave, her husband, jean, the cleaner, the fire officer,
        my old boss, the joiner, the secretary, priya, winston, the driver
    """),
    "thing": _listed("""
        ladder, kettle, drill, extension lead, fuse, panel, ceiling tile, heater, radiator, bin, hammer, pump,
        trolley, toolbox, dishwasher, fan, tea urn, lamp, freezer, projector, hoover, cable drum, junction box,
        isolator, wardrobe, piano, scaffold, torch, meter, fridge, bucket, door closer, hand dryer, spirit level,
        wheelbarrow, compressor, toaster, water heater, gas pipe
    """),
    "day": _listed("""
        monday, tuesday, this morning, last week, tomorrow, next month, friday afternoon, on sunday, at christmas,
        the other day, last summer, on wednesday, a year ago, tonight, in half term, in may
    """),
    "number": _listed("""
        two, three, five, six, nine, ten, eleven, twelve, fifteen, sixteen, eighteen, nineteen, twenty, twenty
        five, thirty, forty one, fifty, sixty, ninety, a hundred and twenty, one point five, two point two, nought
        point five, three and a half, double nine, seven zero four, two hundred, thirty two, seventy, eighty
        eight, a thousand, fourteen, one oh five, seventeen, four hundred, twelve and a half, twenty nine, thirty
        six, one fifty, a couple of hundred, forty
    """),
    "small": _listed("two, three, four, five, six, seven, eight, nine"),
    "ordinal": _listed("first, second, third, fourth, fifth, sixth, ninth, last, bottom"),
    "digit": _listed("zero, one, two, three, four, five, six, seven, eight, nine, oh"),
    "letter": tuple("abcdefghijklmnopqrstuvwxyz"),
    "unit": _listed("ohms, milliamps, megs, volts, milliseconds, amps, megohms, metres, quid"),
    "circuit": _listed("""
        circuit {small}, circuit {number}, the {ordinal} one down, number {small}, the tea urn, the ring, the
        kitchen sockets, the stage lights, the cooker, that one, the left hand side, the cloakroom heater
    """),
    "test": _listed("""
        loop, insulation, trip time, leakage, zed s, ring, earth, polarity, voltage, continuity, ramp, r one plus
        r two, fault current, electrode, phase rotation, resistance
    """),
    "adjective": _listed("""
        old, broken, green, wet, bent, warm, filthy, spare, heavy, loose, rusty, quiet, useless, cracked, new,
        dusty, crooked, cold, enormous, silent, yellow, bitter, splendid, narrow
    """),
    "smell": _listed("burning, paint, damp, gas, onions, bleach, fish, diesel, wet dog, old socks"),
    "supply": _listed("screws, cable ties, tape, milk, biscuits, dust sheets, plugs, clips, batteries, labels"),
    "food": _listed("""
        sandwich, pie, bacon roll, cup of tea, pasty, coffee, biscuit, slice of cake, bag of chips
    """),
    "animal": _listed("cat, squirrel, pigeon, dog, rat, horse, spider, goose, fox, bat, hedgehog"),
    "noun": _listed("""
        river, letter, window, garden, candle, machine, carriage, fiddle, bridge, mountain, ship, clock, orchard,
        lantern, sermon, harvest, kettle, quarrel, ladder, engine, shadow, coat, village, ledger, voyage, mirror,
        market, valley, story, winter, gate, needle, drum, tower
    """),
    "motion": _listed("""
        rolled, wandered, crept, stood, fell, shone, drifted, hurried, leaned, vanished, sank, turned, waited,
        trembled, lay, rose, clattered, hung, slept, settled, passed
    """),
    "past": _listed("""
        broken, mended, forgotten, painted, stolen, carried, sold, promised, buried, opened, lost, measured,
        counted, written, tested, left, corrected, tied, numbered, switched
    """),
    "where": _listed("""
        over the hill, under the bridge, behind the mill, along the shore, at the edge of the wood, by the fire,
        between the houses, above the roofs, beyond the gate, down the lane, in the cold hall, near the well, on
        the far bank, against the wall, among the reeds, across the square, beneath the stairs
    """),
    "time": _listed("""
        in the evening, before dawn, that winter, for a long while, at last, by the second morning, then, after
        the storm, in those days, towards noon, one night in october, late in the year, all at once
    """),
    "speech": _listed("said, thought, swore, whispered, wrote, believed, complained, knew, imagined, admitted"),
    "opener": _listed("""
        to be fair, look, i tell you what, well, honestly, the thing is, as far as i know, mind you, listen, you
        know what, right then, like i said, between you and me, funny enough, basically, see
    """),
    "closer": _listed("""
        you know what i mean, believe it or not, so there you go, and that was that, i suppose, anyway, not that
        anybody asked, what a day, do not ask me why, or so they say, honest, is it not, mark my words, but what
        do i know, same as ever, if you ask me, thank goodness, right, the usual, never again
    """),
    "rough": ROUGH,
    "disaster": DISASTER,
    "clause": CLAUSE,
}
