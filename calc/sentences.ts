/**
 * Every sentence `calc` can say, in English. `{name}` marks what is filled in; an entry with `one` and `other` is
 * chosen by the number `{n}`. The page's catalogue takes these in, so that they are translated in one place; results
 * carry the code and the values of each sentence beside its English words.
 */
export const SENTENCES = {
  'ordinal.one': '{n}st',
  'ordinal.two': '{n}nd',
  'ordinal.few': '{n}rd',
  'ordinal.other': '{n}th',

  'make.castOn': 'Cast on {n} stitches{repeats} and work in {stitch}.',
  'make.chain': 'Chain {chain}{repeats}{hook}.',
  'make.repeats': ' ({n} repeats of {m}, plus {plus})',
  'make.hook': ' with a {hook} hook',
  'make.rowOne': 'Row 1: {how}: {n} stitches.',
  'make.rowOneInto': '{stitch} into the {place} chain from the hook{skipped} and into each chain to the end',
  'make.skippedStand': {
    one: ' (the chain {skipped} stands for the first stitch)',
    other: ' (the {n} chains {skipped} stand for the first stitch)',
  },
  'make.skippedNotCounted': {
    one: ' (the chain {skipped} does not count as a stitch)',
    other: ' (the {n} chains {skipped} do not count as a stitch)',
  },
  'make.skippedUs': 'skipped',
  'make.skippedUk': 'missed',
  'make.turn': 'Turn at the end of each row.',
  'make.turnForPlace':
    'Turn with chain {n} at the end of each row; it stands for the first place of the next row.',
  'make.turnForStitch':
    'Turn with chain {n} at the end of each row; it stands for the first stitch of the next row, so the last stitch of every row goes into it.',
  'make.turnNotCounted': 'Turn with chain {n} at the end of each row; it does not count as a stitch.',
  'make.rows': 'Work {n} rows in all{repeats}, so that the last is a {side} row{end}. {size}',
  'make.rowRepeats': ', {n} repeats of {m}',
  'make.rowRepeatsPlus': ', {n} repeats of {m} plus {plus}',
  'make.rightSide': 'right-side',
  'make.wrongSide': 'wrong-side',
  'make.bindOffUs': ', then bind off',
  'make.bindOffUk': ', then cast off',
  'make.body': 'That is about {width} wide and {height} high.',
  'make.bodyWithoutBorder': 'Without its border that is about {width} wide and {height} high.',
  'make.bodyIn': 'Work the body in {colour}.',
  'make.stripes': 'Colours: {stripes}; repeat these {n} rows, and end with {last} in row {row}.{ending}',
  'make.rowsIn': { one: '{n} row in {colour}', other: '{n} rows in {colour}' },
  'make.stopsAfter': ' The last one stops after {n} of its {of} rows.',
  'make.carryUp':
    'Carry a resting colour up the side while it rests for {n} rows or fewer; cut it when it rests longer.',
  'make.bandRow': 'Row {from}, from the edge where row 1 starts: {blocks}.',
  'make.bandRows': 'Rows {from}–{to}, from the edge where row 1 starts: {blocks}.',
  'make.block': '{n} {colour}',
  'make.blocksOn': '{blocks}, and so on to the other edge, ending with {last}',
  'make.repeatRows': 'Repeat these {n} rows.{ending}',
  'make.carried':
    'Lay the resting colours along the row below and work over them, so that they run unseen inside the stitches.',
  'make.separate': 'Use a separate strand for each block and cross the strands where colours meet.',
  'make.roundFirst':
    'Border round {n}{colour}: {stitch}; along the bottom and top {width}, up and down the sides {height}, and {corner} into each corner{adjust}: {stitches} stitches. Join.',
  'make.round':
    'Border round {n}{colour}: {stitch}; {corner} into the middle stitch of each corner{adjust}: {stitches} stitches. Join.',
  'make.inColour': ' in {colour}',
  'make.intoStitch': '{take} into each stitch{spread} ({n} between corners)',
  'make.intoStitches': '{take} into every {per} stitches{spread} ({n} between corners)',
  'make.intoRowEnd': '{take} into each row end{spread} ({n} between corners)',
  'make.intoRowEnds': '{take} into every {per} row ends{spread} ({n} between corners)',
  'make.moreAtStitch': ', with one more at stitch {places}',
  'make.outAtStitch': ', leaving one out at stitch {places}',
  'make.moreAtRowEnd': ', with one more at row end {places}',
  'make.outAtRowEnd': ', leaving one out at row end {places}',
  'make.workTwo': '; so that the pattern comes out, work 2 into {where}',
  'make.passOver': '; so that the pattern comes out, pass over {where}',
  'make.atBottom': 'stitch {places} of the bottom edge',
  'make.atTop': 'stitch {places} of the top edge',
  'make.atLeft': 'stitch {places} of the left edge',
  'make.atRight': 'stitch {places} of the right edge',
  'make.finished':
    'Finished size: about {width} wide and {height} high (95 %: {widthFrom} to {widthTo} by {heightFrom} to {heightTo}).',

  'caution.infant-bedding':
    "For a baby: public-health guidance (American Academy of Pediatrics, safe-sleep recommendations) is to keep loose bedding, blankets included, out of an infant's sleep space in the first year. Leave off fringe and buttons, keep floats short and ends woven in firmly. Follow local guidance, and ask the family's health professional.",
  'caution.infant-size':
    "This is a usual size for a baby blanket. For a baby: public-health guidance (American Academy of Pediatrics, safe-sleep recommendations) is to keep loose bedding, blankets included, out of an infant's sleep space in the first year. Leave off fringe and buttons, keep floats short and ends woven in firmly. Follow local guidance, and ask the family's health professional.",

  'advice.no-yarn-evidence':
    'Yarn can be worked out once there is a weighed swatch, an unravelled length, the weight used so far, or at least the skein weight and length from the label.',
  'advice.yarn-evidence-disagrees':
    'The ways of estimating the yarn contradict one another; the range is widened. Check the weights and the counts, or weigh again.',
  'advice.border-not-measured':
    'The depth of the border is taken from what this stitch usually gives. Work the border on the swatch and measure it to narrow the finished size.',
  'hookAdvice.right': 'The gauge is the wanted one; keep this hook.',
  'hookAdvice.keep': 'The difference is too small for another hook; {size}.',
  'hookAdvice.tooMany': 'Too many stitches for that length: try {hookMm} mm and swatch again; {size}.',
  'hookAdvice.tooFew': 'Too few stitches for that length: try {hookMm} mm and swatch again; {size}.',
  'hookAdvice.narrower': 'worked as it is, the piece comes out {percent} % narrower than planned',
  'hookAdvice.wider': 'worked as it is, the piece comes out {percent} % wider than planned',

  'search.width': 'width: {off} off, where {best} was possible',
  'search.height': 'height: {off} off, where {best} was possible',
  'search.yarn': 'yarn: {grams} g more than the leanest',
  'search.rounds': 'border: {n} rounds in place of {of}',
  'search.pattern': 'border pattern: {n} stitches added or skipped',
  'search.noChain': 'No chain that the stitch multiple allows lies within the width.',
  'search.noRows': 'No number of rows that the pattern and its last colour allow lies within the height.',
  'search.noYarn': '{colour}: the leanest plan needs about {n} skeins before any safety; {have} are allowed.',
  'search.tooMany': '{n} combinations lie in these ranges; narrow the width or the height.',

  'rowsDone.either': {
    one: 'The photo shows {low} or {n} row; {taken} is taken. Count them once, and say which row you are on.',
    other:
      'The photo shows {low} or {n} rows; {taken} is taken. Count them once, and say which row you are on.',
  },
  'rowsDone.neither': {
    one: 'The photo shows {low} or {n} row, and you are on {told}: count again before you go on.',
    other: 'The photo shows {low} or {n} rows, and you are on {told}: count again before you go on.',
  },
  'rowsDone.byOne': {
    one: 'The photo shows {n} row, and you are on {told}. It may be out by one: count again before you go on.',
    other:
      'The photo shows {n} rows, and you are on {told}. It may be out by one: count again before you go on.',
  },
  'rowsDone.more': {
    one: 'The photo shows {n} row, {off} more than the {told} you are on: count again before you go on.',
    other: 'The photo shows {n} rows, {off} more than the {told} you are on: count again before you go on.',
  },
  'rowsDone.fewer': {
    one: 'The photo shows {n} row, {off} fewer than the {told} you are on: count again before you go on.',
    other: 'The photo shows {n} rows, {off} fewer than the {told} you are on: count again before you go on.',
  },
  'rowsDone.height': {
    one: 'By its height the piece has about {n} row, not {told}: count again before you go on.',
    other: 'By its height the piece has about {n} rows, not {told}: count again before you go on.',
  },

  'drift.unknown':
    'Whether the tension changes cannot be told from so little. Take a close photo of the first rows and one of the last, each with the card, sheet or ruler right beside the rows.',
  'drift.steady': 'The tension is steady: no change over the rows that can be told from chance.',
  'drift.steadyRoughly':
    'The tension is steady as far as these photos tell: a change of less than {percent} % over the rows so far may not show in them. To be surer, add close photos of the first rows and of the last, each with the card, sheet or ruler right beside the rows.',
  'drift.oddPhotoTighter':
    'The photo around row {row} shows stitches {percent} % tighter than the others do, and that is no even change. Take it once more, close, with the card, sheet or ruler right beside the rows: if it says the same, your tension changed there.',
  'drift.oddPhotoLooser':
    'The photo around row {row} shows stitches {percent} % looser than the others do, and that is no even change. Take it once more, close, with the card, sheet or ruler right beside the rows: if it says the same, your tension changed there.',
  'drift.growsTighter':
    'The stitches grow tighter, by {percent} % over the rows seen. If it goes on, the last row is {difference} narrower than the first.',
  'drift.growsTighterOdd':
    'The stitches grow tighter, by about {percent} % over the rows seen. If it goes on, the last row is about {difference} narrower than the first. The photo around row {row} does not fit in with the others: take it once more, close, with the card, sheet or ruler right beside the rows.',
  'drift.growsLooser':
    'The stitches grow looser, by {percent} % over the rows seen. If it goes on, the last row is {difference} wider than the first.',
  'drift.growsLooserOdd':
    'The stitches grow looser, by about {percent} % over the rows seen. If it goes on, the last row is about {difference} wider than the first. The photo around row {row} does not fit in with the others: take it once more, close, with the card, sheet or ruler right beside the rows.',

  'across.unknown':
    'Whether the tension is even across the width shows only where stitches were read side by side.',
  'across.even': 'Across the width in view the tension is even, as far as can be told from chance.',
  'across.tighterRight': 'Across the width in view the stitches grow tighter to the right, by {percent} %.',
  'across.tighterLeft': 'Across the width in view the stitches grow tighter to the left, by {percent} %.',

  'finish.goOn': 'Go on as it is, to {n} rows.',
  'finish.moreRows': {
    one: 'Work {n} row more, {rows} in all.',
    other: 'Work {n} rows more, {rows} in all.',
  },
  'finish.fewerRows': {
    one: 'Work {n} row fewer, {rows} in all.',
    other: 'Work {n} rows fewer, {rows} in all.',
  },
  'finish.hook': 'Change to a {hook} hook for the rows to come.',
  'finish.noBorder': 'Leave the border off.',
  'finish.rounds': {
    one: 'Work {n} border round in place of {of}.',
    other: 'Work {n} border rounds in place of {of}.',
  },
  'finish.borderColour': 'Work the whole border in {colour}.',
  'finish.restOfBorderColour': 'Work the rest of the border in {colour}.',
  'finish.startAgain': 'Rip it all and start again at the gauge it really has: {start}, {rows} rows.',
  'finish.chain': 'chain {n}',
  'finish.castOn': '{n} stitches cast on',
  'finish.ripTo': 'Rip back to row {row} and work on at the planned gauge.',
  'finish.ripToWithHook': 'Rip back to row {row} and work on, with about {hook}, at the planned gauge.',

  'refuse.noneSmall': 'No count the pattern allows is small enough for {target}.',
  'refuse.noneLarge': 'No count the pattern allows is large enough for {target}.',
  'refuse.noCount':
    'No count meets the repeat, the parity, the last row and the end of the colour layout all at once.',
  'refuse.fixed': "{field} is {n}, which the pattern's repeat and end rules do not allow.",
  'refuse.endColour': 'No stripe has the colour "{colour}" to end with.',
} as const;
export type SentenceCode = keyof typeof SENTENCES;
