/** The real work of the vision threads, with its connections written down. */
import './watchConnections.ts';
export { default } from '../../server/measuring/visionTask.ts';
