/** The real work of the measuring processes, with its connections written down. */
import './watchConnections.ts';
export { default } from '../../server/measuring/visionTask.ts';
