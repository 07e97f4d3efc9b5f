/**
 * Asks the package registry for known weaknesses of what is installed, and fails when there are any.
 *
 * Only one thing is let pass: a registry that cannot be asked (no network, or one that does not answer this
 * question). The output says so, because nothing was checked then.
 */
import { spawnSync } from 'node:child_process';

const { stdout, stderr } = spawnSync('npm', ['audit', '--json'], { encoding: 'utf8', maxBuffer: 1e8 });
const verdict = judge(stdout);
if (verdict.kind === 'unasked') {
  console.log(`npm audit: NOT CHECKED, because the registry could not be asked (${verdict.why}).`);
} else if (verdict.kind === 'clean') {
  console.log('npm audit: nothing known against what is installed.');
} else {
  console.error(verdict.why ?? '', stderr);
  process.exit(1);
}

/** @param {string} text what `npm audit --json` printed */
function judge(text) {
  let report;
  try {
    report = JSON.parse(text);
  } catch {
    return { kind: 'failed', why: 'npm audit: it printed no report.' };
  }
  const counts = report.metadata?.vulnerabilities;
  if (counts) {
    if (counts.total === 0) return { kind: 'clean' };
    const names = Object.entries(report.vulnerabilities).map(
      ([name, { severity }]) => `${name}: ${severity}`,
    );
    return { kind: 'failed', why: `npm audit: ${counts.total} known weaknesses\n${names.join('\n')}` };
  }
  const code = report.error?.code ?? '';
  const isUnreachable =
    [404, 405, 502, 503, 504].includes(report.statusCode) ||
    /^(ENOTFOUND|ECONNREFUSED|ECONNRESET|ETIMEDOUT|EAI_AGAIN|ENETUNREACH|ERR_SOCKET_TIMEOUT|ENOAUDIT)$/.test(
      code,
    );
  if (isUnreachable) return { kind: 'unasked', why: report.statusCode ?? code };
  return { kind: 'failed', why: `npm audit: ${report.message ?? report.error?.summary ?? 'it failed'}` };
}
